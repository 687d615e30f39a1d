"""What every report is drawn and written with; knows no store."""
