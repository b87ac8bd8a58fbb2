"""Our numbers against the outside world: standards, codes, textbooks, libraries, public data. One file a source.

To add a check, take the ``outside`` fixture in a test of this folder and say what is compared, at which stage of the job, from
which source, our value and theirs, and how far they may be apart:

    def test_a_steel_tape_on_a_slope(outside: Outside) -> None:
        outside("slope correction", stage="form", source="textbook, page", ours=ours, theirs=29.992, within=1e-3, unit="m")

It asserts, and records a row of docs/checks.md. ``within=0`` (the default) wants equality, of anything that prints. A stage is
one of ``outside.STAGES``. Then write the list again with ``make checks`` and commit it with the
test: the test run compares the committed list with what it found, row by row. A value from memory is marked in ``source``.
"""
