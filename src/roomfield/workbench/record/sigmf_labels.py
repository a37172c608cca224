"""What was heard in a SigMF recording, written as annotations beside it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from roomfield import __version__
from roomfield.errors import InputError
from roomfield.report.render.pdf import write_whole
from roomfield.signals.hearing import CLAIM, Hearing
from roomfield.signals.iq_recording import DATA, META, IqRecording, is_iq, open_iq
from roomfield.workbench.record.recording_analysis import evidence_text

GENERATOR = f"roomfield {__version__}"


def write_labels(hearing: Hearing, recording: str | Path, target: str | Path) -> Path:
    """Write the description of a SigMF recording once more, with an annotation for everything that was heard.

    Parameters
    ----------
    hearing : Hearing
        Of this recording.
    recording : str or Path
        Either file of the recording.
    target : str or Path
        A new ``.sigmf-meta`` file in the recording's folder; its samples are named in it and not copied.

    Returns
    -------
    Path
        Of the file.

    Raises
    ------
    InputError
        If the recording is none of SigMF, or the target is there already or has another ending or folder.
    """
    source, path = Path(recording), Path(target)
    if not is_iq(source):
        raise InputError("labels are written for SigMF recordings.", where=source.name, mend="Give NAME.sigmf-meta.")
    if path.suffix.lower() != META or path.resolve().parent != source.resolve().parent:
        raise InputError(
            "the labels do not lie beside the samples that they are of.",
            where=path.name,
            mend=f"Name a file ending in {META} in the folder of the recording.",
        )
    if path.exists():
        raise InputError("there is a file of this name already.", where=path.name, mend="Choose another name.")
    iq = open_iq(source)
    described: dict[str, Any] = json.loads(iq.path.read_text("utf-8"))
    described["global"]["core:dataset"] = iq.path.with_suffix(DATA).name
    kept = [one for one in described.get("annotations", []) if one.get("core:generator") != GENERATOR]
    found = (*kept, *labels_of(hearing, iq))
    described["annotations"] = sorted(found, key=lambda one: int(one["core:sample_start"]))
    write_whole(path, (json.dumps(described, ensure_ascii=False, indent=2) + "\n").encode("utf-8"))
    return path


def labels_of(hearing: Hearing, iq: IqRecording) -> Iterator[dict[str, Any]]:
    """One annotation for each technology that was heard and each stretch in which it was there.

    Parameters
    ----------
    hearing : Hearing
        Of the recording.
    iq : IqRecording
        The recording, whose samples the annotations count.
    """
    for heard in hearing.claimed:
        for start_s, end_s, chance in _stretches(hearing, heard.name, heard.probability):
            start = min(round(start_s * iq.sample_rate_hz), iq.samples)
            one: dict[str, Any] = {
                "core:sample_start": start,
                "core:sample_count": min(round(end_s * iq.sample_rate_hz), iq.samples) - start,
                "core:label": heard.title,
                "core:comment": f"probability {chance:.2f}; {evidence_text(heard)}",
                "core:generator": GENERATOR,
            }
            if iq.frequency_hz is not None and iq.is_complex:
                one["core:freq_lower_edge"] = iq.frequency_hz - iq.sample_rate_hz / 2.0
                one["core:freq_upper_edge"] = iq.frequency_hz + iq.sample_rate_hz / 2.0
            yield one


def _stretches(hearing: Hearing, name: str, probability: float) -> Iterator[tuple[float, float, float]]:
    """Start and end [s] of each stretch in which a technology was heard, and its probability; like blocks joined."""
    if not hearing.course:
        yield 0.0, hearing.duration_s, probability
        return
    spans = [s for s in hearing.course if s.chances.get(name, 0.0) >= CLAIM]
    joined: list[tuple[float, float, float]] = []
    for span in spans:
        if joined and abs(joined[-1][1] - span.start_s) < 1e-6:
            start, _, chance = joined.pop()
            joined.append((start, span.end_s, max(chance, span.chances[name])))
        else:
            joined.append((span.start_s, span.end_s, span.chances[name]))
    yield from joined
