"""The marker sheet: where its markers lie, and its drawings at true size."""

from pitchcam.sheet.draw import write_sheet
from pitchcam.sheet.layout import BAR_MM, PAGES, SIZES, Sheet, sheet

__all__ = ["BAR_MM", "PAGES", "SIZES", "Sheet", "sheet", "write_sheet"]
