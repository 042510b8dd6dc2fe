"""Single cells to values: weights, dates, times, yes and no. What can be read two ways is not read."""

from __future__ import annotations

import calendar
import re
from datetime import UTC, date, datetime, time, timedelta
from fractions import Fraction
from functools import lru_cache
from zoneinfo import ZoneInfo

from batchdose.amounts import clean, number_text, weekday_text
from batchdose.model import NG_PER_KG, Moment
from batchdose.read.book import Cell, NoValue
from batchdose.read.facts import shows_month
from batchdose.read.numbers import NotANumberError, exact, parse_number
from batchdose.read.table import cell_text
from batchdose.texts import Text, of_error, say
from batchdose.units import BODYWEIGHT, UnknownUnitError, convert, unit_named

#: Beyond any animal; whole nanograms of more than nine million kilograms could not be kept.
HEAVIEST_KG = 100_000
#: A year of two digits lies at most so far ahead of this year; a later one may be of the last century.
YEARS_AHEAD = 20
_WEIGHT = re.compile(r"(?P<number>[\d.,' ]*\d(?:/\d{1,2}| ?[½¼¾⅛⅜⅝⅞])?)\s*(?P<unit>[^\d\s]\D*)?")
_POUNDS_AND_OUNCES = re.compile(
    r"(\d+)\s*(?:lbs?\.?|pounds?),?\s*(?:and )?(\d{1,2}(?:\.\d+)?)\s*(?:oz\.?|ounces?)", re.IGNORECASE
)
_HYPHEN_BEFORE_FRACTION = re.compile(r"(?<=\d)-(?=\d{1,2}/\d)")
_TIME = r"(?P<hour>\d{1,2})(?:[:.](?P<minute>\d{2})(?::\d{2})?)?(?: ?(?P<half>[apAP])\.?[mM]\.?)?"
_CLOCK = rf"(?:,?[T ]+(?:at )?{_TIME})?"
_WEEKDAY = re.compile(r"([A-Za-z]{3,9})\.?,? +(?=\w)")
#: Dates that can be read one way only. Year first, also without strokes (ISO 8601), and with the month's name.
_DATES = tuple(
    re.compile(form + _CLOCK)
    for form in (
        r"(?P<year>\d{4})[-/.](?P<month>\d{1,2})[-/.](?P<day>\d{1,2})",
        r"(?P<year>(?:19|20)\d{2})(?P<month>\d{2})(?P<day>\d{2})",
        r"(?P<day>\d{1,2})(?:st|nd|rd|th)?(?:\.? (?:of )?|-)(?P<name>[A-Za-z]{3,9})(?:\.?,? |-)(?P<year>\d{4})",
        r"(?P<name>[A-Za-z]{3,9})\.? (?P<day>\d{1,2})(?:st|nd|rd|th)?,? ?(?P<year>\d{4})",
    )
)
_SLASHED = re.compile(r"(\d{1,2})[/.-](\d{1,2})[/.-](\d{4}|\d{2})" + _CLOCK)
_MONTH = re.compile(r"(\d{4})-(\d{1,2})|(\d{1,2})/(\d{4})")
_MONTHS = {
    word.casefold(): number
    for names in (calendar.month_name, calendar.month_abbr)
    for number, word in enumerate(names)
    if word
} | {"sept": 9}
_WEEKDAYS = {
    word.casefold(): number for names in (calendar.day_name, calendar.day_abbr) for number, word in enumerate(names)
} | {"tues": 1, "weds": 2, "thur": 3, "thurs": 3}
#: A number format of a date that shows no day: mm/yy, mmm-yy.


class CellError(ValueError):
    """A cell that cannot be read as what it should be; the message says what is wrong with it."""


class NoUnitError(CellError):
    """A weight that is a number, but neither its cell nor its heading gives the unit."""


@lru_cache(maxsize=65536, typed=True)
def weight_ng(cell: Cell, unit: str) -> int:
    """Bodyweight in whole nanograms; `unit` is that of the column (`kg`, `lb` or empty if not stated).

    >>> weight_ng("62,5 kg", ""), weight_ng(100.0, "lb")
    (62500000000000, 45359237000000)
    """
    if isinstance(cell, NoValue):
        raise CellError(say("it {problem}", problem=cell.problem))
    if isinstance(cell, (bool, date, datetime)):
        raise CellError(say("it is not a weight"))
    try:
        if isinstance(cell, (int, float)):
            amount, written = exact(cell), ""
        else:
            amount, written = _amount_and_unit(clean(str(cell)))
        spelling = written or unit
        if not spelling:
            raise NoUnitError(say("neither the heading nor the cell gives kg or lb"))
        kilograms = convert(amount, unit_named(spelling, BODYWEIGHT), "kg_bw")
    except NotANumberError as error:
        raise CellError(of_error(error)) from None
    except UnknownUnitError as error:
        typed = f"{error}"
        raise CellError(
            say('"{unit}" is not a unit of weight (kg or lb); a nought is typed as 0', unit=typed)
            if typed.strip() in ("o", "O") else say('"{unit}" is not a unit of weight (kg or lb)', unit=typed)
        ) from None  # fmt: skip
    if kilograms <= 0:
        raise CellError(say("a weight is more than zero"))
    if kilograms > HEAVIEST_KG:
        raise CellError(say("no animal weighs more than {most} kg", most=number_text(HEAVIEST_KG)))
    return round(kilograms * NG_PER_KG)


def _amount_and_unit(text: str) -> tuple[Fraction, str]:
    """A weight as typed: the number, and the unit if one is typed. An ounce is a sixteenth of a pound."""
    if parts := _POUNDS_AND_OUNCES.fullmatch(text):
        ounces = Fraction(parts[2])
        if ounces >= 16:
            raise CellError(say("16 oz and more are another pound"))
        return int(parts[1]) + ounces / 16, "lb"
    match = _WEIGHT.fullmatch(_HYPHEN_BEFORE_FRACTION.sub(" ", text.removeprefix("+")))
    if match is None:
        raise CellError(say("it is not a number"))
    return parse_number(match["number"]), match["unit"] or ""


#: Dates of a job lie within these years; an empty date of an export may come as the year 1 or 9999.
FIRST_YEAR, LAST_YEAR = 1950, 2200
#: The largest number that a count may be: heads, packs, doses.
MOST_COUNTED = 1_000_000


def read_moment(cell: Cell, zone: ZoneInfo, order: str = "") -> Moment:
    """Date, or date and time, in the session's zone. Raises CellError where it could be two dates.

    `order` is what the session says of dates such as 03/04/2026: `day first`, `month first`, or nothing.
    """
    try:
        moment = _moment(cell, zone, order)
        within = FIRST_YEAR <= moment.at.year <= LAST_YEAR
    except (OverflowError, ValueError) as error:
        if isinstance(error, CellError):
            raise
        within = False
    if not within:
        raise CellError(
            say('"{typed}" is not a date between {first} and {last}', typed=cell_text(cell), first=FIRST_YEAR,
                last=LAST_YEAR)
        )  # fmt: skip
    return moment


def _moment(cell: Cell, zone: ZoneInfo, order: str = "") -> Moment:
    """A date, or date and time, of any year; see `read_moment`."""
    if isinstance(cell, datetime):
        # Midnight exactly is how a sheet stores a date without a time.
        return Moment(cell.replace(tzinfo=zone), timed=cell.time() != time(0))
    if isinstance(cell, date):
        return Moment(datetime(cell.year, cell.month, cell.day, tzinfo=zone), timed=False)
    text, weekday = _without_weekday(cell_text(cell))
    if match := next(filter(None, (form.fullmatch(text) for form in _DATES)), None):
        parts = match.groupdict()
        month = _MONTHS.get((parts.get("name") or "").casefold(), parts.get("month"))
        year, day = parts["year"], parts["day"]
    elif match := _SLASHED.fullmatch(text):
        day, month = _day_and_month(int(match[1]), int(match[2]), text, order)
        year = _year(match[3], text, order)
    else:
        return _with_offset(cell_text(cell), zone)
    clock = _clock(match, text) if match["hour"] else None
    try:
        at = datetime.combine(date(int(year), int(month or 0), int(day)), clock or time(0), zone)
    except ValueError:
        raise CellError(say('"{typed}" is not a date of the calendar', typed=text)) from None
    if weekday is not None and at.weekday() != weekday:
        raise CellError(say('"{typed}" is a {weekday}', typed=cell_text(cell), weekday=weekday_text(at)))
    return Moment(at, timed=clock is not None)


def _without_weekday(text: str) -> tuple[str, int | None]:
    """A date without the day of the week that stands before it, and that day, counted from Monday."""
    match = _WEEKDAY.match(text)
    day = _WEEKDAYS.get(match[1].casefold()) if match else None
    return (text, None) if match is None or day is None else (text[match.end() :], day)


def _clock(match: re.Match[str], text: str) -> time:
    """A time of day as typed: 09:30, 09.30, 9:30 am. Raises CellError where it is none."""
    hour, half = int(match["hour"]), (match["half"] or "").casefold()
    if (match["minute"] is None and not half) or (half and not 1 <= hour <= 12):
        raise CellError(_no_time(text))
    if half:
        hour = hour % 12 + (12 if half == "p" else 0)
    try:
        return time(hour, int(match["minute"] or 0))
    except ValueError:
        raise CellError(_no_time(text)) from None


def _no_time(text: str) -> Text:
    return say('"{typed}" is no time of day', typed=text)


def _year(written: str, text: str, order: str) -> str:
    """A year of four digits; of two only where the session says the order, since 25/03/26 may begin with the year."""
    if len(written) == 4:
        return written
    if not order:
        raise CellError(say('"{typed}" has a year of two digits, so it could be another date', typed=text))
    year = 2000 + int(written)
    if year > datetime.now(UTC).year + YEARS_AHEAD:
        raise CellError(
            say('"{typed}" has a year of two digits, which could be {one} or {other}', typed=text, one=year - 100,
                other=year)
        )  # fmt: skip
    return str(year)


def _day_and_month(first: int, second: int, text: str, order: str) -> tuple[int, int]:
    if order:
        return (first, second) if order == "day first" else (second, first)
    if first <= 12 and second <= 12 and first != second:
        raise CellError(say('"{typed}" could be two dates, day first or month first', typed=text))
    return (first, second) if first > 12 or first == second else (second, first)


def _with_offset(text: str, zone: ZoneInfo) -> Moment:
    """A moment with its own offset (`2026-03-14T09:00:00+00:00`), turned to the session's zone."""
    try:
        at = datetime.fromisoformat(text) if ":" in text else None
    except ValueError:
        at = None
    if at is None:
        raise CellError(say('"{typed}" is not a date', typed=text))
    return Moment(at.astimezone(zone) if at.tzinfo else at.replace(tzinfo=zone), timed=True)


def read_expiry(cell: Cell, order: str = "", code: str = "") -> date:
    """Last day of use. A month alone means its last day (GS1 General Specifications 3.4.7, day 00).

    `order` as in `read_moment`. `code` is the number format of a date cell: one that shows the month alone
    means the month.

    >>> read_expiry("2028-02"), read_expiry("03/04/2027", "day first")
    (datetime.date(2028, 2, 29), datetime.date(2027, 4, 3))
    """
    day = _day_of(cell, order, last=True)
    if isinstance(cell, date) and day.day == 1 and shows_month(code):
        return day.replace(day=calendar.monthrange(day.year, day.month)[1])
    return day


def read_first_day(cell: Cell, order: str = "") -> date:
    """Day on which something began. A month alone means its first day; `order` as in `read_moment`.

    >>> read_first_day("2026-05")
    datetime.date(2026, 5, 1)
    """
    return _day_of(cell, order, last=False)


def _day_of(cell: Cell, order: str, *, last: bool) -> date:
    if isinstance(cell, str) and (match := _MONTH.fullmatch(clean(cell))):
        year, month = (int(match[1]), int(match[2])) if match[1] else (int(match[4]), int(match[3]))
        if not 1 <= month <= 12:
            raise CellError(say('"{typed}" is not a month', typed=cell))
        return date(year, month, calendar.monthrange(year, month)[1] if last else 1)
    return read_moment(cell, ZoneInfo("UTC"), order).at.date()


def read_times(cell: Cell) -> tuple[time, ...]:
    """Times of day in order.

    >>> read_times("5.30 pm, 06:00")
    (datetime.time(6, 0), datetime.time(17, 30))
    """
    if isinstance(cell, time):
        return (cell,)
    parts = re.split(r"[,;/&]\s*|\s+and\s+", cell_text(cell))
    try:
        return tuple(sorted({_time(part.strip()) for part in parts}))
    except CellError:
        raise CellError(say('"{typed}" is not a list of times such as 06:00, 17:30', typed=cell_text(cell))) from None


def _time(text: str) -> time:
    match = re.fullmatch(_TIME, text)
    if match is None:
        raise CellError(_no_time(text))
    return _clock(match, text)


def read_time_of_day(cell: Cell) -> time:
    """One time of day; a sheet may store it as a time, a fraction of a day or text."""
    if isinstance(cell, timedelta):
        return (datetime.min + cell).time()  # noqa: DTZ901 - a time of day has no zone of its own
    if isinstance(cell, float) and 0 <= cell < 1:
        return (datetime.min + timedelta(seconds=round(cell * 86400))).time()  # noqa: DTZ901 - the same
    if isinstance(cell, datetime):
        return cell.time()
    times = read_times(cell)
    if len(times) != 1:
        raise CellError(say('"{typed}" is not one time of day', typed=cell_text(cell)))
    return times[0]


def read_yes_no(cell: Cell) -> bool:
    """Yes or no. Raises CellError for anything else.

    >>> read_yes_no("Yes"), read_yes_no(False)
    (True, False)
    """
    word = cell_text(cell).casefold()
    if word in ("yes", "y", "true", "1", "x"):
        return True
    if word in ("no", "n", "false", "0"):
        return False
    raise CellError(say('"{typed}" is neither yes nor no', typed=cell_text(cell)))


def read_count(cell: Cell) -> int:
    """A whole number of one or more."""
    number = read_number(cell)
    if number.denominator != 1 or not 1 <= number <= MOST_COUNTED:
        most = number_text(MOST_COUNTED)
        raise CellError(say('"{typed}" is not a whole number from 1 to {most}', typed=cell_text(cell), most=most))
    return int(number)


def read_whole(cell: Cell) -> int:
    """A whole number, which may be nothing."""
    number = read_number(cell)
    if number.denominator != 1 or not 0 <= number <= MOST_COUNTED:
        most = number_text(MOST_COUNTED)
        raise CellError(say('"{typed}" is not a whole number up to {most}', typed=cell_text(cell), most=most))
    return int(number)


def read_number(cell: Cell) -> Fraction:
    """A number, exact. Raises CellError with what is wrong."""
    if isinstance(cell, (int, float)) and not isinstance(cell, bool):
        return exact(cell)
    if isinstance(cell, NoValue):
        raise CellError(say("it {problem}", problem=cell.problem))
    try:
        return parse_number(cell_text(cell))
    except NotANumberError as error:
        raise CellError(of_error(error)) from None


def read_share(cell: Cell) -> Fraction:
    """A percentage as a share: `5 %` and `5` are 1/20. Raises CellError for a bare number below one, such as 0.5.

    >>> read_share("5 %"), read_share(5.0), read_share("0.5 %")
    (Fraction(1, 20), Fraction(1, 20), Fraction(1, 200))
    """
    percent = isinstance(cell, str) and clean(cell).endswith("%")
    number = read_number(clean(str(cell))[:-1] if percent else cell)
    if number < 0:
        raise CellError(say("a share is not less than nothing"))
    if 0 < number < 1 and not percent:
        whole, part = number_text(number * 100), number_text(number)
        raise CellError(say("it could be {whole} % or {part} %; write the one that is meant", whole=whole, part=part))
    return number / 100
