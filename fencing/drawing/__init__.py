"""Drawings of a take-off as SVG text, for paper and for pages. One unit is one millimetre of paper; nothing is exaggerated.

    plan_view.draw_plan                    the whole job from above
    elevation.draw_elevation_bands         elevations of all runs, what stands side by side at a time
    elevation.draw_elevation               the same on one sheet as high as need be
    set_out_strip.draw_set_out_bands       hole by hole along the string line, for the crew
    details.draw_bay_detail                one bay between its posts; ``find_typical_bay`` picks it
    details.draw_leaf_detail               a gate from the front

Notices are numbered from 1 in the order of the take-off. Colours stand as attributes for print; a page's style sheet overrides
them by class: ``d-...`` is a mark's look, ``g-...`` what a group of marks is. Groups carry ``data-run``, ``data-bay``,
``data-gate`` or ``data-post``.
"""
