"""Time: lots through crews by hand and by longest paths, working days beside numpy's, bad input."""

import datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented_lots import LOTS, PRODUCTS, edges, ground, plan

from geoturf import materials
from geoturf.bid import make_bid
from geoturf.calendar import schedule
from geoturf.calendar.days import Days
from geoturf.calendar.flow import Lot, through
from geoturf.errors import BidError
from geoturf.rules import CalendarRules, EdgeRules, MaterialRules
from geoturf.rules.calendar import TASKS, WEEK, Crew
from geoturf.rules.offer import PhaseDates

GROUND = {"name": "Ground", "tasks": ["setup", "caps", "dig", "drain", "base"]}
TURF = {"name": "Turf", "tasks": [task for task in TASKS if task not in GROUND["tasks"]]}
DAY = datetime.date(2026, 7, 1)  # a Wednesday


def two(ground=1, turf=1):
    return [Crew(**GROUND, count=ground), Crew(**TURF, count=turf)]


def lots(*hours, phase="1"):
    """Lots of (hours of dig, hours of turf)."""
    return [Lot(phase, 0.0, {"dig": dig, "turf": turf}) for dig, turf in hours]


def dated(takeoff=None, dates=(), **rules):
    land = ground(LOTS)
    if takeoff is None:
        taken = (land, edges(land), plan(land), PRODUCTS, MaterialRules(), EdgeRules())
        takeoff = materials.takeoff(*taken)
    return schedule(land, takeoff, CalendarRules(**rules), 8.0, dict(dates)), takeoff


# ---------------------------------------------------------------------------------------- crews


def test_two_crews_by_hand():
    """Ground: 0-8, 8-24, 24-32. Turf follows from lot to lot: 8-24, 24-32, 32-40."""
    visits = through(lots((8, 16), (16, 8), (8, 8)), two())
    assert visits.of("1", "dig") == (0, 32, 32)
    assert visits.of("1", "turf") == (8, 40, 32)
    assert visits.finish == 40


def test_a_second_crew_takes_the_next_lot():
    """Ground digs lots 1 and 2 from 0, the crew that is free at 8 digs lot 3."""
    visits = through(lots((8, 4), (16, 4), (8, 4)), two(ground=2))
    assert visits.of("1", "dig") == (0, 16, 32)
    assert visits.finish == 24  # lots 2 and 3 are both dug at 16, and laid one after the other


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(1, 30), st.integers(1, 30)), min_size=1, max_size=7))
def test_the_end_is_the_longest_path(hours):
    """One crew each: the work takes as long as the longest way from the first lot's digging to the
    last lot's turf, which changes from ground to turf once (the critical path of a flow shop; from
    memory)."""
    ways = range(len(hours))
    longest = max(
        sum(dig for dig, _ in hours[: at + 1]) + sum(turf for _, turf in hours[at:]) for at in ways
    )
    assert through(lots(*hours), two()).finish == longest


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(st.integers(1, 30), st.integers(1, 30)), min_size=1, max_size=7),
    st.integers(1, 3),
)
def test_crews_never_do_more_than_their_hours(hours, count):
    """No crew is at two lots at once: all is done no sooner than its hours over its count, nor than
    any lot's own hours."""
    finish = through(lots(*hours), two(count, count)).finish
    least = [sum(one) / count for one in zip(*hours, strict=True)]
    assert finish >= max(*least, *(sum(lot) for lot in hours)) - 1e-9


def test_one_crew_does_lot_after_lot():
    visits = through(lots((8, 16), (16, 8)), [Crew(name="Crew")])
    assert visits.finish == 48
    assert visits.of("1", "dig") == (0, 40, 24)


# ------------------------------------------------------------------------------------- the table


def test_all_hours_of_the_takeoff_are_in_the_calendar():
    made, takeoff = dated()
    pools = takeoff.items[takeoff.items["scope_kind"] == "pool"]
    hours = pools[pools["key"].str.startswith("labour_")].groupby("phase")["net"].sum()
    rows = made.rows.groupby("phase")
    assert rows["crew_hours"].sum().to_dict() == pytest.approx(hours.to_dict())
    assert np.allclose(made.rows["crew_days"] * 8, made.rows["crew_hours"])


def test_one_crew_takes_the_sum_of_its_hours():
    made, _ = dated()
    assert made.days == np.ceil(made.rows["crew_hours"].sum() / 8)


def test_without_a_start_days_are_numbered():
    made, _ = dated()
    assert made.rows["start_day"].min() <= 1
    assert made.first is None and made.rows[["start", "finish"]].isna().all(axis=None)


def test_dates_are_numpys():
    made, _ = dated(start=DAY, holidays=[datetime.date(2026, 7, 3)])
    for end in ("start", "finish"):
        offset = made.rows[f"{end}_day"].to_numpy() - 1
        wanted = np.busday_offset(DAY, offset, roll="forward", holidays=["2026-07-03"])
        assert (made.rows[end].to_numpy("datetime64[D]") == wanted).all()


def test_one_more_of_a_crew_is_a_run_with_one_more():
    some = [GROUND | {"count": 1}, TURF | {"count": 2}]
    made, takeoff = dated(crews=some)
    for at, crew in enumerate(made.crews.itertuples()):
        more = [one | {"count": one["count"] + (k == at)} for k, one in enumerate(some)]
        assert made.days - crew.days_sooner == dated(takeoff, crews=more)[0].days


def test_turf_is_delivered_before_it_is_laid():
    made, _ = dated(start=DAY, delivery_lead=4)
    for _, rows in made.rows.groupby("phase"):
        day = rows.set_index("task")["start"]
        assert np.busday_count(day["delivery"], day["turf"]) == 4


def test_phases_go_by_their_starts_and_what_is_late_is_told():
    phases = list(dict.fromkeys(ground(LOTS).areas["phase"].astype(str)))
    first, then = phases[:2]
    agreed = {
        then: PhaseDates(start=DAY, finish=DAY, deliver_on=datetime.date(2027, 1, 4)),
        first: PhaseDates(start=datetime.date(2026, 7, 2)),
    }
    made, _ = dated(dates=agreed)
    assert list(dict.fromkeys(made.rows["phase"]))[:2] == [then, first]
    said = [finding.message.split(",")[0] for finding in made.findings]
    assert f"phase {then} is done" in " ".join(said) and f"phase {first} begins" in " ".join(said)
    assert f"phase {then}: turf is delivered 2027-01-04" in said


def test_a_phase_without_a_start_waits_for_those_with_one():
    """Though crews wait for the other to begin."""
    phases = list(dict.fromkeys(ground(LOTS).areas["phase"].astype(str)))
    later = {phases[-1]: PhaseDates(start=datetime.date(2026, 9, 1))}
    made, _ = dated(dates=later, start=DAY)
    assert made.first == DAY
    starts = made.rows[made.rows["task"] != "delivery"].groupby("phase", sort=False)["start"].min()
    assert list(starts.index) == [phases[-1], *phases[:-1]]
    assert starts.iloc[0] == datetime.date(2026, 9, 1) and starts.is_monotonic_increasing


# ------------------------------------------------------------------------------------------ days


@given(
    st.dates(datetime.date(2000, 1, 1), datetime.date(2090, 1, 1)),
    st.integers(-40, 60),
    st.sets(st.integers(0, 6), min_size=1),
    st.sets(st.integers(-30, 60)),
)
def test_working_days_are_numpys(first, number, week, off):
    """Beside numpy.busday_offset, week mask and holidays in."""
    holidays = [first + datetime.timedelta(days) for days in off]
    rules = CalendarRules(working_days=[WEEK[day] for day in week], holidays=holidays)
    mask = [day in week for day in range(7)]
    kept = {"weekmask": mask, "holidays": holidays}
    day = Days(rules, first).date(number)
    assert day == np.busday_offset(first, number - 1, roll="forward", **kept)
    assert Days(rules, first).number(day) == number


# ------------------------------------------------------------------------------------- bad input


@pytest.mark.parametrize(
    ("rules", "told"),
    [
        ({"holidays": ["4 July"]}, "'4 July' is no date, which is written like 2026-03-31"),
        ({"working_days": []}, "no day is worked"),
        ({"working_days": ["freitag"]}, "'freitag'"),
        ({"delivery_lead": 1.5}, "1.5 is no whole number of working days"),
        ({"crews": [GROUND]}, "nobody does 'odour'"),
        ({"crews": [GROUND, TURF, TURF | {"name": "More"}]}, "'odour' is done twice"),
        ({"crews": [TURF, GROUND]}, "'infill' would come before 'setup'"),
        ({"crews": [GROUND | {"tasks": ["mow"]}, TURF]}, "'mow' is no task"),
        ({"crews": [GROUND | {"count": 0}, TURF]}, "count must be a whole number, 1 to 1000"),
    ],
)
def test_what_does_not_fit_is_told_in_a_line(rules, told):
    with pytest.raises(BidError) as refused:
        make_bid({"layers": [{"path": "lots.shp"}], "calendar": rules})
    (line,) = [finding.line() for finding in refused.value.findings]
    assert told in line and "calendar" in line


# --------------------------------------------------------------------------------- what is planned


def test_a_phase_is_planned_from_its_first_task_to_its_last():
    """Against the calendar's own rows; deliveries, which come before, are no work."""
    dates = {"1": PhaseDates(deliver_on="2026-06-29", start="2026-07-01")}
    when, _ = dated(dates=dates)
    for one in when.planned:
        tasks = when.rows[(when.rows["phase"] == one.phase) & (when.rows["task"] != "delivery")]
        assert (one.start_day, one.finish_day) == (
            min(tasks["start_day"]),
            max(tasks["finish_day"]),
        )
        assert (one.start, one.finish) == (min(tasks["start"]), max(tasks["finish"]))
    assert when.planned[0].start == DAY and [one.phase for one in when.planned] == ["1", "2"]


def test_days_without_dates_are_planned_by_number():
    when, _ = dated()
    assert [(one.start, one.finish) for one in when.planned] == [(None, None)] * 2
    assert max(one.finish_day for one in when.planned) == when.days
