"""Many clients at once: every workbook below a folder, each planned by itself, and one summary for the adviser."""
