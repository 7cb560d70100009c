"""The program's version, and those of the libraries that figures hang on."""

from __future__ import annotations

__version__ = "0.1.0"

#: What decodes photos, computes, draws and keeps: another version can move a last digit.
LIBRARIES = (
    "numpy",
    "scipy",
    "opencv-python-headless",
    "pillow",
    "pillow-heif",
    "matplotlib",
    "reportlab",
    "click",
    "jinja2",
    "rich",
    "segno",
    "starlette",
    "uvicorn",
    "cryptography",
)


def versions() -> dict[str, str]:
    """Return program, interpreter and libraries with their versions, the program first."""
    # Here, since every start of the program reads this module for its own version.
    import platform
    from importlib import metadata

    found = {"pitchcam": __version__, "Python": platform.python_version()}
    for name in LIBRARIES:
        try:
            found[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            found[name] = "missing"
    return found
