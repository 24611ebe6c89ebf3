"""`coldtake print`: a day's plan or some exercises as a PDF for the stand."""

import os
from argparse import Namespace
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from coldtake.cli.opened import print_json, services_of
from coldtake.errors import InputError, StoreError

if TYPE_CHECKING:
    from coldtake.practice.services import Services
    from coldtake.web.printing.sheets import Sheet


def run(arguments: Namespace) -> int:
    """Write the PDF and say how many things stand on it."""
    target = Path(arguments.output)
    if target.exists() and not arguments.replace:
        raise InputError(
            "A file of that name exists already.",
            where=str(target),
            remedy="Choose another name, or use --replace.",
        )
    from coldtake.web.printing.pdf import as_pdf
    from coldtake.web.printing.sheets import paper_of

    paper = paper_of(arguments.paper)
    with services_of(arguments) as services:
        sheet = _sheet(services, arguments, paper)
    _write(target, as_pdf(sheet, paper))
    if arguments.json:
        told = {"path": str(target), "paper": paper, "title": sheet.title}
        print_json({**told, "exercises": len(sheet.parts)})
    else:
        print(f"{target}: {sheet.title}, {len(sheet.parts)} exercises on {paper}")
    return 0


def _sheet(services: "Services", arguments: Namespace, paper: str) -> "Sheet":
    from coldtake.web.printing.sheets import exercise_sheet, steps_named

    ids = [i for given in arguments.steps or () for i in given.split(",") if i]
    if arguments.topic:
        services.pile.topic(arguments.topic)
        ids += [s.id for s in services.state().topic_steps(arguments.topic)]
    if ids and arguments.plan is not None:
        remedy = "Print the plan, then the exercises."
        raise InputError("A plan and exercises cannot be in one print.", remedy=remedy)
    if ids or arguments.topic:
        return exercise_sheet(services, steps_named(services, ids), paper)
    return _day_sheet(services, arguments.plan, paper)


def _day_sheet(services: "Services", given: date | timedelta | None, paper: str) -> "Sheet":
    from coldtake.web.printing.sheets import plan_sheet

    day = given
    if not isinstance(day, date):
        day = services.today() + (timedelta(days=1) if day is None else day)
    plan = services.plans.plan(day)
    if plan is None:
        plan = services.plans.propose(services.plans.default_request(day))
    if not plan.slots:
        words = plan.remarks[0] if plan.remarks else "The plan of that day has no slots."
        raise InputError(words, where="plan", remedy="Make a topic current and add a step.")
    return plan_sheet(services, plan, paper)


def _write(target: Path, pdf: bytes) -> None:
    """Write beside the target first, so that no half file can stand under its name."""
    near = target.with_name(f".{target.name}.part")
    try:
        near.write_bytes(pdf)
        os.replace(near, target)
    except OSError as fault:
        near.unlink(missing_ok=True)
        raise StoreError(
            f"The file could not be written: {fault.strerror}.",
            where=str(target),
            remedy="Choose a folder that exists and allows writing.",
        ) from fault
