"""What a measurement imports: the libraries whose import outlasts it come in only when needed."""

import subprocess
import sys

CODE = """
import sys, pitchcam.answer
print(*[name for name in ("scipy", "skimage", "matplotlib", "reportlab") if name in sys.modules])
"""


def test_a_measurement_starts_without_slow_libraries():
    run = subprocess.run([sys.executable, "-c", CODE], capture_output=True, text=True, check=True)
    assert run.stdout.split() == []
