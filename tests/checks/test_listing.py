"""Test that docs/checks.md shows the results of the checks. It runs after all other checks."""

from tests.checks.outside import MIN, STAGES, Outside


def test_every_check_of_this_run_stands_in_the_list(outside: Outside, list_of_checks: str) -> None:
    lines = set(list_of_checks.splitlines())
    assert [row for row in outside.rows if row.line() not in lines] == []


def test_the_list_is_exactly_what_a_whole_run_finds(outside: Outside, list_of_checks: str, whole_run: bool) -> None:
    if whole_run:
        assert list_of_checks == outside.document()


def test_no_two_checks_say_the_same(outside: Outside) -> None:
    lines = [row.line() for row in outside.rows]
    assert sorted(lines) == sorted(set(lines))


def test_the_list_has_at_least_sixty_checks_and_one_for_every_stage(list_of_checks: str) -> None:
    rows = [
        line
        for line in list_of_checks.splitlines()
        if line.startswith("| ") and not line.startswith(("| what", "| ---"))
    ]
    assert len(rows) >= MIN
    assert [stage for stage in STAGES if f"\n## {stage.capitalize()}\n" not in list_of_checks] == []
