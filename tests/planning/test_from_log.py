"""From a log to tomorrow's plan, through the library alone, as the module's example has it."""

from datetime import UTC, date, datetime, time, timedelta

from coldtake.domain import events as ev
from coldtake.domain.criterion import Criterion, NotesTest, TempoTest
from coldtake.domain.history.projection import fold
from coldtake.domain.ids import named_id
from coldtake.domain.plan import PlanRequest, SlotKind, violations
from coldtake.domain.take import Answer, Judge
from coldtake.domain.topic import Place, Step, Topic
from coldtake.planning.day import plan_day as day_module
from coldtake.planning.day.plan_day import plan_day

TODAY = date(2026, 1, 12)


def event(n, day, data, hour=17):
    at = datetime.combine(day, time(hour), tzinfo=UTC) + timedelta(seconds=n)
    return ev.Event(id=named_id("test", str(n), day.isoformat()), at=at, day=day, data=data)


def log():
    """Three topics with a date, three weeks of work and answers; invented."""
    start = TODAY - timedelta(days=22)
    made, n = [], 0
    criterion = Criterion(tests=(NotesTest(), TempoTest(mark=96.0)))
    for t in range(3):
        topic = Topic(id=f"t{t}", title=f"Topic {t}", performance_on=date(2026, 2, 20))
        made.append(event(n := n + 1, start, ev.TopicKept(topic=topic)))
        placed = ev.TopicPlaced(topic_id=topic.id, place=Place.CURRENT)
        made.append(event(n := n + 1, start, placed))
        for s in range(4):
            needs = (f"t{t}s0",) if s == 3 else ()
            step = Step(
                id=f"t{t}s{s}",
                topic_id=topic.id,
                title=f"Step {s}",
                criterion=criterion,
                needs=needs,
            )
            made.append(event(n := n + 1, start, ev.StepKept(step=step)))
    for back in range(20, 0, -1):
        day = TODAY - timedelta(days=back)
        for s in range(3):
            step_id = f"t{back % 3}s{s}"
            ended = ev.SlotEnded(session_id="none", slot_id="x", step_id=step_id, played_s=600.0)
            made.append(event(n := n + 1, day, ended))
            answer = ev.TryAnswered(
                try_id=f"try{n}",
                step_id=step_id,
                answer=Answer.YES if (back + s) % 4 else Answer.NO,
                judge=Judge.PLAYER,
                tempo_bpm=60.0 + 20 - back,
            )
            made.append(event(n := n + 1, day, answer))
    return made


def planned(minutes=60):
    request = PlanRequest(day=TODAY, starts_at=time(17), minutes=minutes)
    return plan_day(fold(log()), request)


def test_a_log_becomes_a_plan():
    plan = planned()
    assert violations(plan) == ()
    assert 40 <= plan.minutes <= 60
    assert 2 <= len({s.topic_id for s in plan.slots}) <= 4
    assert plan.value > 0
    assert all(s.reason for s in plan.slots)


def test_equal_logs_give_equal_plans_in_whatever_order_they_arrive():
    request = PlanRequest(day=TODAY, starts_at=time(17), minutes=60)
    assert plan_day(fold(reversed(log())), request) == planned()


def test_blocked_steps_wait():
    plan = planned(120)
    planned_steps = {s.step_id for s in plan.slots if s.kind is SlotKind.WORK}
    state = fold(log())
    phases = state.phases()
    for step_id in planned_steps:
        assert all(phases[n] in ("met", "held") for n in state.steps[step_id].needs)


def test_the_example_in_the_module_runs(capsys):
    example = day_module.__doc__.split("(`events` is any log):")[1]
    code = "\n".join(line[4:] for line in example.splitlines())
    exec(compile(code, "example", "exec"), {"events": log()})
    assert len(capsys.readouterr().out.splitlines()) >= 3
