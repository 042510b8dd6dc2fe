"""Writing: a finished plan to workbook, job sheet and results. Nothing here calculates a dose."""
