"""What a beginner can import, pinned."""

import subprocess
import sys

import posefuse


def test_the_exported_names() -> None:
    assert posefuse.__all__ == sorted(posefuse.__all__)
    assert set(posefuse.__all__) == set(posefuse._HOMES)
    for name in posefuse.__all__:
        assert getattr(posefuse, name) is not None


def test_an_unknown_name_is_refused() -> None:
    assert not hasattr(posefuse, "no_such_name")


def test_import_is_light() -> None:
    heavy = "{'cv2', 'numba', 'scipy', 'matplotlib', 'filterpy', 'pydantic'}"
    code = f"import posefuse, sys; print(sorted({heavy} & set(sys.modules)))"
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "[]"
