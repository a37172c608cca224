"""What is heard in a file is what stands in it now."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile

from roomfield.errors import InputError
from roomfield.workbench.record.recording_analysis import listen


def test_an_overwritten_file_is_heard_anew(tmp_path):
    path = tmp_path / "recording.wav"
    noise = np.random.default_rng(7).normal(0.0, 0.05, 3 * 16000)
    heard = []
    for seconds in (2, 3):
        soundfile.write(path, noise[: seconds * 16000], 16000)
        heard.append(listen(path))
    assert [round(h.duration_s) for h in heard] == [2, 3]
    assert listen(path) is heard[1]
    path.unlink()
    with pytest.raises(InputError):
        listen(path)
