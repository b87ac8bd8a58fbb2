"""The same problem as a flow along the bar, on SciPy's own build of HiGHS: no patterns, no pricing, no code of ours."""

from __future__ import annotations

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import lil_matrix

from fencing.cutting import Demand


def arc_flow(asked: Demand, seconds: float = 60.0) -> int | None:
    """Least cost proved within the time, else None.

    Arcs are pieces laid from one place to a later one and waste of 1; a path from 0 to a bar's end is a bar.
    """
    kerf = asked.kerf
    ends = [stock.usable + kerf for stock in asked.stock]
    places = max(ends) + 1
    arcs = [
        (start, start + length + kerf, piece)
        for piece, (length, _) in enumerate(asked.pieces)
        for start in range(places - length - kerf)
    ]
    arcs += [(start, start + 1, -1) for start in range(places - 1)]
    columns = len(arcs) + len(ends)
    flow, need = lil_matrix((places, columns)), lil_matrix((len(asked.pieces), columns))
    for column, (start, end, piece) in enumerate(arcs):
        flow[start, column] -= 1
        flow[end, column] += 1
        if piece >= 0:
            need[piece, column] = 1
    for row, end in enumerate(ends):
        flow[end, len(arcs) + row] = -1
        flow[0, len(arcs) + row] = 1
    costs = np.array([0.0] * len(arcs) + [float(stock.cost) for stock in asked.stock])
    most = [np.inf if stock.have is None else stock.have for stock in asked.stock]
    counts = np.array([count for _, count in asked.pieces])
    answer = milp(
        costs,
        constraints=[LinearConstraint(flow.tocsr(), 0, 0), LinearConstraint(need.tocsr(), counts, np.inf)],
        bounds=Bounds(0, np.array([np.inf] * len(arcs) + most)),
        integrality=np.ones(columns),
        options={"mip_rel_gap": 0.0, "time_limit": seconds},
    )
    return int(answer.fun + 0.5) if answer.status == 0 else None
