"""The figures at the head of a report."""

from __future__ import annotations

from digitise.output.model.words import BEYOND
from digitise.output.report import form
from digitise.output.report.words import SIGNED, day, interval_words


def figure_boxes(words: form.ReportForm) -> list[tuple[str, str, str]]:
    """Return the boxes at the head of a report: what it is, the figure, and what stands below it."""
    last = words.visits[-1]
    boxes = [("Volume", f"{last.volume_ml.value:.0f} mL", f"95 %: {interval_words(last.volume_ml)} mL")]
    for name, end in ((f"Foot, {BEYOND['foot']}", words.foot), (f"Hand, {BEYOND['hand']}", words.hand)):
        if end is not None:
            below = f"95 %: {interval_words(end.volume_ml)} mL\n{_together(words, end)}"
            boxes.append((f"{name} {end.to_mm:.0f} mm", f"{end.volume_ml.value:.0f} mL", below))
    if words.change is not None:
        whole = words.change.whole
        value, interval = f"{whole.change_ml.value:{SIGNED}} mL", interval_words(whole.change_ml, SIGNED)
        percent = f"{whole.change_percent.value:+.1f} %"
        clear = whole.verdict != "no clear change"
        value, below = (
            (value, f"{percent}, {whole.verdict}") if clear else (whole.verdict, f"{value}, {percent}")
        )
        if (whole.from_mm, whole.to_mm) != (words.from_mm, words.to_mm):
            below += f"\nfrom {whole.from_mm:.0f} to {whole.to_mm:.0f} mm"
        boxes.append((f"Change since {day(words.change.since)}", value, f"{below}\n95 %: {interval} mL"))
    if last.excess_ml is not None:
        interval = interval_words(last.excess_ml, SIGNED)
        if last.excess_percent is None:  # both limbs are swollen
            what, below = "Difference from the other limb", f"95 %: {interval} mL"
        else:
            what = "Excess over the other limb"
            below = f"{last.excess_percent.value:+.1f} % of that limb\n95 %: {interval} mL"
        boxes.append((what, f"{last.excess_ml.value:{SIGNED}} mL", below))
    return boxes


def _together(words: form.ReportForm, end: form.FootForm | form.HandForm) -> str:
    whole = end.whole_ml
    return (
        f"with the {words.limb} up to {end.whole_to_mm:.0f} mm {whole.value:.0f} mL ({interval_words(whole)})"
    )
