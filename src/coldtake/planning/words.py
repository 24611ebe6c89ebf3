"""Small words that reasons, goals and remarks share."""

from datetime import date


def on_day(day: date) -> str:
    """Say a date without its year: “12 January”."""
    return f"{day.day} {day:%B}"


def weekday(day: date, seen_from: date) -> str:
    """Say a date with its weekday: “Sat 12 Dec”, with the year where it is another."""
    year = f" {day.year}" if day.year != seen_from.year else ""
    return f"{day:%a} {day.day} {day:%b}{year}"


def percent(chance: float) -> str:
    """Say a chance 0..1; never 0 % or 100 %, which no estimate supports."""
    return f"{min(max(round(100 * chance), 1), 99)} %"


def points(worth: float) -> str:
    """Say points with one decimal below ten, none above."""
    return f"{worth:.1f}" if worth < 9.95 else f"{worth:.0f}"


def counted(number: int, one: str, many: str | None = None) -> str:
    """Say a number with its noun."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def listed(names: list[str]) -> str:
    """Join names: “a”, “a and b”, “a, b and c”."""
    if len(names) <= 1:
        return "".join(names)
    return ", ".join(names[:-1]) + " and " + names[-1]
