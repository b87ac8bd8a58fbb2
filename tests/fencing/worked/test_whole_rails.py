"""10 m between two square posts at free ends, 1800 high, laid out so that rails of 2390 stay uncut.

first bay  40 + 2390 + 5 = 2435      then 5 + 2390 + 5 = 2400 as often as it goes
10000 - 2435 - 2400 - 2400 - 2400 = 365, under the least closing bay of 400: the last two share 2765
"""

from __future__ import annotations

from fencing.model.measure import Form, Layout, MeasureBasis, Run
from tests.fencing.worked.by_hand import counted, lengths, take_off_runs

RUN = Run("K", 10000, 1800, MeasureBasis.CENTRES, form=Form.LEVEL, layout=Layout.WHOLE_RAILS)


def test_bays_and_rails() -> None:
    takeoff = take_off_runs(RUN)
    assert [bay.width for bay in takeoff.runs[0].bays] == [2435, 2400, 2400, 1383, 1382]
    # three bays uncut; 1383 - 5 - 5 = 1373 and 1382 - 5 - 40 = 1337
    assert lengths(takeoff, "rail") == {2390: 6, 1373: 2, 1337: 2}


def test_caps() -> None:
    assert counted(take_off_runs(RUN), "cap.pair", "cap.square") == [4, 2]
