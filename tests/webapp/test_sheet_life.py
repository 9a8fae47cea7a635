"""When an offer lapses and what may happen to a sheet: across midnight, time zones, daylight saving, price moves."""

from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from freezegun import freeze_time
from hypothesis import assume, given
from hypothesis import strategies as st

from webapp.settings import Settings
from webapp.sheet_life import (
    LONGEST_VALIDITY,
    STATES,
    Validity,
    ValidityRefused,
    lapses,
    price_per_g,
    state_of,
    valid_until_from,
    validity,
    why_not,
)

BERLIN, DENVER, KIRITIMATI = (ZoneInfo(name) for name in ("Europe/Berlin", "America/Denver", "Pacific/Kiritimati"))
ZONES = [
    "UTC",
    "Europe/Berlin",
    "America/Denver",
    "Australia/Lord_Howe",
    "Asia/Kathmandu",
    "Pacific/Apia",
    "Africa/Cairo",
]
NOW = datetime(2026, 11, 25, 10, 0, tzinfo=DENVER)


def until(text: str, now: datetime = NOW, zone: ZoneInfo | timezone = DENVER) -> str:
    return valid_until_from(text, now, zone).isoformat()


# ---- until when


@pytest.mark.parametrize(
    ("text", "due"),
    [
        ("2026-11-27", "2026-11-27T23:59:59-07:00"),
        ("2026-11-25", "2026-11-25T23:59:59-07:00"),
        ("2026-11-27T18:00", "2026-11-27T18:00:00-07:00"),
        (" 2026-11-27   9:05 ", "2026-11-27T09:05:00-07:00"),
        ("2026-11-27 18:00:30", "2026-11-27T18:00:30-07:00"),
        ("2026-11-27T18:00Z", "2026-11-27T11:00:00-07:00"),
        ("2026-11-27 18:00 +01:00", "2026-11-27T10:00:00-07:00"),
        ("2026-11-27T18:00+0530", "2026-11-27T05:30:00-07:00"),
        ("3 days", "2026-11-28T10:00:00-07:00"),
        ("1 day", "2026-11-26T10:00:00-07:00"),
        ("48 hours", "2026-11-27T10:00:00-07:00"),
        ("90 min", "2026-11-25T11:30:00-07:00"),
        ("2 Weeks", "2026-12-09T10:00:00-07:00"),
        ("2d", "2026-11-27T10:00:00-07:00"),
        ("1h", "2026-11-25T11:00:00-07:00"),
    ],
)
def test_what_may_be_typed(text: str, due: str) -> None:
    assert until(text) == due


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "Nothing is not understood. Type a date"),
        ("tomorrow", "“tomorrow” is not understood"),
        ("27.11.2026", "not understood"),
        ("2026-11-27T", "not understood"),
        ("2026-02-30", "no date or time that there is"),
        ("2026-11-27 24:30", "no date or time that there is"),
        ("2026-11-27 18:00+99:00", "no date or time that there is"),
        ("0000-01-01", "no date or time that there is"),
        ("9999-12-31", "no date or time|more than ten years"),
        ("2026-11-24", "is over already"),
        ("2026-11-25 10:00", "is over already"),
        ("0 days", "is over already"),
        ("0 hours", "is over already"),
        ("2206-11-27", "more than ten years away"),
        ("999999 weeks", "more than ten years away"),
        ("999999 hours", "more than ten years away"),
        ("-3 days", "not understood"),
        ("1.5 days", "not understood"),
        ("x" * 5000, "not understood"),
        ("٣ days", "not understood|2026"),
    ],
)
def test_what_is_refused_says_what_to_type(text: str, message: str) -> None:
    if text == "٣ days":  # Python reads these digits; so may a person
        assert until(text) == "2026-11-28T10:00:00-07:00"
        return
    with pytest.raises(ValidityRefused, match=message) as told:
        valid_until_from(text, NOW, DENVER)
    assert len(str(told.value)) < 250


def test_times_that_the_clocks_leave_out_or_show_twice_are_told() -> None:
    """In the European Union, 02:00 to 03:00 on the last Sunday of March does not exist and 02:00 to 03:00 on the last
    Sunday of October comes twice: Directive 2000/84/EC, articles 2 and 3 (at 01:00 UTC)."""
    now = datetime(2026, 3, 1, tzinfo=BERLIN)
    with pytest.raises(ValidityRefused, match=r"“2026-03-29 02:30” does not exist.*Type 2026-03-29 03:30"):
        valid_until_from("2026-03-29 02:30", now, BERLIN)
    assert until("2026-03-29 02:00+01:00", now, BERLIN) == "2026-03-29T03:00:00+02:00"
    with pytest.raises(ValidityRefused, match=r"comes twice.*2026-10-25 02:30\+02:00 .*2026-10-25 02:30\+01:00"):
        valid_until_from("2026-10-25 02:30", now, BERLIN)
    first, second = (valid_until_from(f"2026-10-25 02:30{offset}", now, BERLIN) for offset in ("+02:00", "+01:00"))
    assert second.astimezone(UTC) - first.astimezone(UTC) == timedelta(hours=1)


def test_days_keep_the_time_of_the_day_and_hours_do_not() -> None:
    before = datetime(2026, 3, 28, 12, tzinfo=BERLIN)
    assert until("1 day", before, BERLIN) == "2026-03-29T12:00:00+02:00"
    assert until("24 hours", before, BERLIN) == "2026-03-29T13:00:00+02:00"
    into_gap = datetime(2026, 3, 28, 2, 30, tzinfo=BERLIN)
    assert until("1 day", into_gap, BERLIN) == "2026-03-29T03:30:00+02:00"
    into_both = datetime(2026, 10, 24, 2, 30, tzinfo=BERLIN)
    assert until("1 day", into_both, BERLIN) == "2026-10-25T02:30:00+01:00"  # never less than was promised


@pytest.mark.parametrize(
    ("zone", "day", "due"),
    [
        ("Europe/Berlin", "2026-03-29", "2026-03-29T23:59:59+02:00"),
        ("Europe/Berlin", "2026-10-25", "2026-10-25T23:59:59+01:00"),
        # Midnight itself is left out there: IANA time zone database, rules of Egypt since 2023 and of Lebanon.
        ("Africa/Cairo", "2026-04-23", "2026-04-23T23:59:59+02:00"),
        ("Asia/Beirut", "2026-03-28", "2026-03-28T23:59:59+02:00"),
        # At midnight the clocks go back to 23:00, so that the last hour comes twice: the first of them ends no day.
        ("Africa/Cairo", "2026-10-29", "2026-10-29T23:59:59+02:00"),
    ],
)
def test_a_day_lasts_to_its_end(zone: str, day: str, due: str) -> None:
    found = valid_until_from(day, datetime(2026, 1, 1, tzinfo=UTC), ZoneInfo(zone))
    assert found.isoformat() == due
    after = (found.astimezone(UTC) + timedelta(seconds=1)).astimezone(ZoneInfo(zone))
    assert after.date() == found.date() + timedelta(days=1)


@given(
    st.datetimes(datetime(2000, 1, 1), datetime(2035, 1, 1)),
    st.sampled_from(ZONES),
    st.sampled_from(["minute", "hour", "day", "week"]),
    st.integers(1, 100),
)
def test_a_span_is_after_now_and_as_long_as_said(wall: datetime, zone: str, unit: str, count: int) -> None:
    now = wall.replace(tzinfo=UTC)
    found = valid_until_from(f"{count} {unit}s", now, ZoneInfo(zone))
    length = {"minute": 60, "hour": 3600, "day": 86400, "week": 7 * 86400}[unit] * count
    off = abs((found - now).total_seconds() - length)
    assert off == 0 if unit in ("minute", "hour") else off <= 86400 if zone == "Pacific/Apia" else off <= 3600
    assert found > now
    assert found == found.astimezone(UTC), "a moment that there is"


@given(st.datetimes(datetime(2000, 1, 1), datetime(2035, 1, 1)), st.sampled_from(ZONES))
def test_a_typed_time_is_that_time_in_the_shop_or_is_told(wall: datetime, zone: str) -> None:
    wall, there = wall.replace(microsecond=0), ZoneInfo(zone)
    text = wall.isoformat()
    offsets = {wall.replace(tzinfo=there, fold=fold).utcoffset() for fold in (0, 1)}
    now = wall.replace(tzinfo=UTC) - timedelta(days=5)
    if len(offsets) == 1:
        found = valid_until_from(text, now, there)
        assert found.replace(tzinfo=None) == wall
    else:
        with pytest.raises(ValidityRefused, match=r"does not exist|comes twice"):
            valid_until_from(text, now, there)


@given(st.dates(datetime(2000, 1, 1).date(), datetime(2035, 1, 1).date()), st.sampled_from(ZONES))
def test_the_second_after_a_day_is_of_the_next(day, zone: str) -> None:  # type: ignore[no-untyped-def]
    there = ZoneInfo(zone)
    assume(not (zone == "Pacific/Apia" and (day.year, day.month, day.day) in ((2011, 12, 29), (2011, 12, 30))))
    found = valid_until_from(day.isoformat(), datetime(1999, 1, 1, tzinfo=UTC).replace(year=day.year - 1), there)
    after = (found.astimezone(UTC) + timedelta(seconds=1)).astimezone(there)
    assert (found.date(), after.date()) == (day, day + timedelta(days=1))


@given(st.text(max_size=30))
def test_any_text_is_a_moment_or_is_refused(text: str) -> None:
    try:
        found = valid_until_from(text, NOW, DENVER)
    except ValidityRefused:
        return
    assert NOW < found <= NOW + LONGEST_VALIDITY


# ---- lapsing by time


@pytest.mark.parametrize("zone", ["UTC", "America/Denver", "Pacific/Kiritimati", "Asia/Kathmandu"])
def test_an_offer_ends_at_its_moment_wherever_the_clock_hangs(zone: str, tmp_path) -> None:  # type: ignore[no-untyped-def]
    """The program's own clock, frozen round midnight of the shop."""
    ends = valid_until_from("2026-11-27", NOW, DENVER)
    offer = Validity(ends, "USD")
    settings = Settings(data=tmp_path, time_zone=zone)
    for step, due in ((-1, None), (0, None), (1, "time")):
        with freeze_time(ends.astimezone(UTC) + timedelta(seconds=step)):
            assert lapses(offer, settings.now(), {}) == due


def test_the_hour_that_comes_twice_is_an_hour_of_validity() -> None:
    ends = valid_until_from("2026-10-25 02:30+01:00", datetime(2026, 10, 1, tzinfo=UTC), BERLIN)
    offer = Validity(ends, "EUR")
    assert lapses(offer, datetime(2026, 10, 25, 2, 59, tzinfo=BERLIN, fold=0), {}) is None
    assert lapses(offer, datetime(2026, 10, 25, 2, 30, tzinfo=BERLIN, fold=1), {}) is None
    assert lapses(offer, datetime(2026, 10, 25, 2, 31, tzinfo=BERLIN, fold=1), {}) == "time"


@given(st.datetimes(datetime(2000, 1, 1), datetime(2035, 1, 1)), st.integers(-(10**9), 10**9), st.sampled_from(ZONES))
def test_lapsing_does_not_hang_on_the_zone_of_either_moment(wall: datetime, apart_s: int, zone: str) -> None:
    ends, now = wall.replace(tzinfo=UTC), wall.replace(tzinfo=UTC) + timedelta(seconds=apart_s)
    due = "time" if apart_s > 0 else None
    assert lapses(Validity(ends, "USD"), now, {}) == due
    assert lapses(Validity(ends.astimezone(ZoneInfo(zone)), "USD"), now.astimezone(KIRITIMATI), {}) == due


# ---- lapsing by the price


@pytest.mark.parametrize(
    ("newest", "due"),
    [("4100", None), ("4223", None), ("4223.01", "price"), ("3977", None), ("3976.99", "price"), ("0.01", "price")],
)
def test_a_move_past_the_set_per_cent_ends_it_and_exactly_it_does_not(newest: str, due: str | None) -> None:
    """3 % of 4,100 is 123."""
    offer = validity(NOW + timedelta(days=3), "USD", "4100.00", "ozt", "0.03")
    assert lapses(offer, NOW, {"USD": price_per_g(newest, "ozt")}) == due
    assert lapses(offer, NOW, {"EUR": price_per_g(newest, "ozt")}) is None
    assert (
        lapses(validity(offer.until, "USD", "4100.00", "ozt", None), NOW, {"USD": price_per_g(newest, "ozt")}) is None
    )


@given(
    st.decimals("0.01", "100000", places=2),
    st.decimals("0.001", "2", places=3),
    st.sampled_from(["ozt", "g", "kg", "tola"]),
    st.sampled_from([-1, 1]),
)
def test_exactly_the_set_move_never_ends_it(price: Decimal, move: Decimal, unit, sign: int) -> None:  # type: ignore[no-untyped-def]
    offer = validity(NOW, "USD", price, unit, move)
    at_the_edge = price * (1 + sign * move)
    assert lapses(offer, NOW, {"USD": max(0.0, price_per_g(at_the_edge, unit))}) is None
    beyond = at_the_edge + sign * price / 10**9
    if beyond >= 0:
        assert lapses(offer, NOW, {"USD": price_per_g(beyond, unit)}) == "price"


def test_time_is_told_before_the_price() -> None:
    offer = validity(NOW, "USD", "4100", "ozt", "0.03")
    assert lapses(offer, NOW + timedelta(seconds=1), {"USD": 1.0}) == "time"


@pytest.mark.parametrize("move", ["0", "-0.03"])
def test_a_move_is_above_nothing(move: str) -> None:
    with pytest.raises(ValueError, match="above 0"):
        validity(NOW, "USD", "4100", "ozt", move)
    with pytest.raises(ValueError, match="time zone"):
        validity(datetime(2026, 1, 1), "USD", "4100", "ozt", None)


# ---- states


def test_only_what_is_open_lapses() -> None:
    offer = Validity(NOW, "USD")
    late = NOW + timedelta(days=1)
    for state in STATES:
        assert state_of(state, offer, NOW, {}) == state
        assert state_of(state, offer, late, {}) == ("lapsed" if state == "handed_over" else state)
    assert state_of("written", None, late, {}) == "written"


def test_what_may_follow_what() -> None:
    kinds = ("handed_over", "agreed", "turned_down", "lapsed", "settled")
    allowed = {state: {kind for kind in kinds if why_not(kind, state) is None} for state in STATES}
    assert allowed == {
        "written": {"handed_over"},
        "handed_over": {"handed_over", "agreed", "turned_down"},
        "agreed": {"settled"},
        "turned_down": {"handed_over"},
        "lapsed": {"handed_over", "lapsed", "turned_down"},
        "settled": {"settled"},  # a correction
    }
    said = why_not("agreed", "lapsed")
    assert said == "This sheet has lapsed, so it cannot be agreed. Hand over a new revision, at today's price, first."
