"""Words for the terminal: what was found, what was simulated, what is wrong."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from models.front import TIME, Front
from models.machine import Case, MachineFault
from models.outcome import Feasible, Infeasible, Reason, Undecided, Verdict
from solver.plan.words import ticks
from solver.simulate import PressReport

CAUTION = (
    "Caution: while the tape is sunk its surface is open. Keep everyone off until it is flush "
    "again; local codes and licensed practice come first."
)


def tell_verdict(verdict: Verdict, files: Mapping[str, str]) -> list[str]:
    """The result of a search, a few lines."""
    match verdict:
        case Feasible():
            claim = "proven optimal over the catalogue" if verdict.optimal else "best so far"
            lines = [f"A machine was found ({claim}) and accepted by simulation in all four cases."]
            lines += [_score(verdict), CAUTION]
        case Infeasible():
            lines = ["Proven impossible.", *(_reason(r) for r in verdict.reasons)]
            lines += [f"Proof: {verdict.proof}."] if verdict.proof else []
            if not verdict.minimal:
                lines.append("The list of reasons is not minimised.")
        case Undecided():
            lines = [f"Undecided: {verdict.why}."]
            if verdict.best:
                lines += [
                    "The best machine so far was accepted by simulation.",
                    _score(verdict.best),
                    CAUTION,
                ]
            bound = ", ".join(f"{k} {v}" for k, v in verdict.lower_bound.items())
            lines += [f"No machine of these designs has less than: {bound}"] if bound else []
    return lines + [f"{what}: {path}" for what, path in files.items()]


def tell_front(front: Front) -> list[str]:
    """The machines to choose from, and whether these are all."""
    lines = [f"Machines to choose from, by {', '.join(front.terms)}: {len(front.machines)}"]
    for number, found in enumerate(front.machines, start=1):
        lines.append(f"  front-{number}:{_score(found)[1:]}")
    return [*lines, *(f"  {line}" for line in tell_completeness(front))]


def tell_completeness(front: Front) -> list[str]:
    """Whether a front is all there is, or what is open."""
    if front.complete:
        return ["Proven complete over the catalogue: no other machine is better in any way."]
    lines = ["Not proven complete; more machines may lie here:"]
    lines += [f"- {gap}" for gap in front.gaps]
    least = _figures(front.least)
    return [*lines, f"Proven of each alone, no machine has less than: {least}"] if least else lines


def _score(found: Feasible) -> str:
    return "  " + _figures(found.score)


def _figures(score: Mapping[str, int]) -> str:
    """Figures with their names; times in ticks."""
    words = (f"{key} {ticks(value) if key == TIME else value}" for key, value in score.items())
    return ", ".join(words)


def _reason(reason: Reason) -> str:
    place = f"{reason.place}: " if reason.place else ""
    return f"  - {place}{reason.text}"


def tell_presses(presses: Mapping[Case, list[PressReport]], *, swings: bool = False) -> list[str]:
    """Each press in each case; presses of one kind in a row share a line."""
    where = "one cell on, or back where it was," if swings else "one cell on"
    lines = []
    for case, reports in presses.items():
        for first, last, report in _runs(reports):
            name = f"press {first}" if first == last else f"presses {first} to {last}"
            if report.ok:
                lines.append(
                    f"{case}: {name}: every block {where} and flush, "
                    f"at rest after {report.half_ticks} half-ticks"
                )
            else:
                lines.append(f"{case}: {name}: {len(report.faults)} faults")
                lines += [f"  {tell_fault(fault)}" for fault in report.faults]
    return lines


def _runs(reports: Iterable[PressReport]) -> Iterable[tuple[int, int, PressReport]]:
    run: tuple[int, int, PressReport] | None = None
    for report in reports:
        if run and run[2].ok and report.ok and run[2].half_ticks == report.half_ticks:
            run = (run[0], report.press, report)
            continue
        if run:
            yield run
        run = (report.press, report.press, report)
    if run:
        yield run


def tell_fault(fault: MachineFault) -> str:
    """One fault: when, what, where, remedy."""
    when = f"half-tick {fault.half_tick}: " if fault.half_tick is not None else ""
    where = " and ".join(map(str, fault.cells[:4]))
    where = f" [{where}]" if where and where not in fault.text else ""
    remedy = f" {fault.remedy}" if fault.remedy else ""
    return f"{when}{fault.code}: {fault.text}{where}.{remedy}"


def fault_json(fault: MachineFault) -> dict[str, object]:
    """One fault as JSON."""
    return {
        "code": fault.code,
        "text": fault.text,
        "cells": [list(cell) for cell in fault.cells],
        "half_tick": fault.half_tick,
        "remedy": fault.remedy,
    }
