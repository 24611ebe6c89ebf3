"""The seam between the lookahead (what minutes are worth) and the day (which minutes to choose)."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class StepValue:
    """What tomorrow's minutes on one step are worth, the days to the date looked ahead.

    work_value : value of 0, 1, 2 … minutes of work tomorrow, in points (0.01 of importance-weighted
        chance of coming out clean on the date); never falling; [0] is 0
    cold_value : value of one cold take tomorrow, in points (0 when there is nothing to check)
    available : False while a step it needs is not met
    chance_without, chance_with : chance of a clean cold take on the date without and with the
        best minutes tomorrow, for the reason given to the player
    need_left_min : minutes of work still expected
    chances : chance of a clean cold take on the date after 0, 1, 2 … minutes tomorrow and nothing
        more; never falling; empty where it is not known
    fits : the topic's minutes are there until its date, beside what brings more for them
    enough : there are takes enough for the chances to be more than a first guess
    due : True when the topic must be touched tomorrow; set by the day's own rules (`going_round`)
    """

    step_id: str
    topic_id: str
    work_value: tuple[float, ...]
    cold_value: float
    available: bool
    chance_without: float
    chance_with: float
    need_left_min: float
    chances: tuple[float, ...] = ()
    fits: bool = True
    enough: bool = True
    due: bool = False
