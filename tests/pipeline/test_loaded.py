"""What measuring a photo loads: no more than it needs, since each process pays for it."""

import subprocess
import sys
from pathlib import Path

SAMPLE = Path(__file__).parents[2] / "samples" / "p05-unf12-pin.jpg"


def test_measuring_loads_neither_masked_arrays_nor_scipy():
    """NumPy's median loads masked arrays, which take as long as a twentieth of a photo."""
    code = (
        "import sys, pitchcam; from pitchcam.records import ScaleSpec\n"
        f"pitchcam.identify({str(SAMPLE)!r}, ScaleSpec(source='pin', mm=6.0), plots=False)\n"
        "print(sorted({'numpy.ma', 'scipy'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
