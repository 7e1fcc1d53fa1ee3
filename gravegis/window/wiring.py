"""Which part of the window speaks to which."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gravegis.window import inout
from gravegis.window.areas import next_area
from gravegis.window.keysheet import bind
from gravegis.window.stages import STAGES

if TYPE_CHECKING:
    from collections.abc import Callable

    from gravegis.window.frame import Window

__all__ = ["bind_keys", "wire"]


def wire(window: Window) -> None:
    """Connect what the parts of the window say to what is done about it."""
    canvas, card, deeds, side, strip, foot = (
        window.map.canvas, window.map.card, window.deeds, window.side, window.strip, window.foot,
    )  # fmt: skip
    pairs = (
        (window.start.sample, window.open_sample), (window.start.open_, lambda: inout.ask_folder(window)),
        (window.start.opened, window.open), (window.bar.chosen, window.go_to_stage),
        (canvas.picked, window.pick), (canvas.head_moved, window.head_moved),
        (canvas.head_previewed, window.head_previewed),
        (canvas.pointer_at, window.pointer_at),
        (canvas.selected, window.selected), (window.map.stepped, window.step),
        (window.map.keys_asked, window.show_keys),
        (window.map.middle_asked, window.pick_middle), (card.opened, window.go_to), (card.stepped, window.step),
        (card.closed, window.unpick), (card.by_hand, window.head_by_hand),
        (card.saw, lambda stone, seen: deeds.saw(stone, seen, window.spraying())),
        (side.question.asked, lambda name, typed, keep: deeds.work_out(name, typed, keep=keep)),
        (side.question.stop_asked, deeds.runner.stop), (side.question.opened, window.go_to),
        (side.survey.add_asked, lambda: inout.ask_file(window)),
        (side.records.pages_asked, deeds.pages), (side.records.view_asked, lambda: inout.save_view(window)),
        (side.records.paper_asked, lambda: inout.print_view(window)), (side.head.put, deeds.put_head),
        (side.records.question_asked, window.show_side),
        (side.head.back, window.show_side), (side.add.wanted, deeds.bring), (side.add.look_wanted, deeds.look),
        (deeds.looked, side.add.show_questions), (side.add.left, window.show_side),
        (strip.clock.moved, window.minute_moved), (strip.crews.stopped_at, window.stop_chosen),
        (strip.list.picked, window.go_to), (strip.list.selected, window.selected_in_list),
        (foot.undo, deeds.undo), (foot.redo, deeds.redo),
        (foot.keys, window.show_keys), (foot.units, window.units), (foot.dark, window.dark),
        (foot.larger, window.larger),
        (deeds.site_changed, window.refresh), (deeds.told, foot.say), (deeds.refused, window.refused),
        (deeds.worked_out, window.worked_out), (deeds.brought, window.show_side),
        (deeds.bring_refused, side.add.show_error), (deeds.runner.told, side.question.tell),
        (deeds.runner.changed, lambda on: side.question.set_running(running=on)),
        (window._drawer.refused, window.refused), (window._drawer.broke, foot.say),
    )  # fmt: skip
    for signal, does in pairs:
        signal.connect(does)


def bind_keys(window: Window) -> None:
    """Bind the keys of the whole window."""
    keys: dict[str, Callable[[], object]] = {
        "Ctrl+F": window.seek, "Ctrl+Z": window.deeds.undo, "Ctrl+Shift+Z": window.deeds.redo,
        "Ctrl+Y": window.deeds.redo,
        "Ctrl+Return": window.side.question.run.click, "Ctrl+P": window.side.records.pages.click,
        "F6": lambda: next_area(window), "Ctrl+Q": window.close,
        "F1": window.show_keys, "Esc": window.escape, "Ctrl++": lambda: window.larger(1),
        "Ctrl+=": lambda: window.larger(1), "Ctrl+-": lambda: window.larger(-1),
    }  # fmt: skip
    for number, stage in enumerate(STAGES, 1):
        keys[f"Ctrl+{number}"] = lambda stage=stage: window.go_to_stage(stage)  # type: ignore[misc]
    bind(window, keys)
