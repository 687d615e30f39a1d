"""The report step: one workbook and one printed summary per store, from finished figures."""
