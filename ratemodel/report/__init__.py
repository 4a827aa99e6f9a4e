"""Results as files and words: results.json, report.html, report.md, text and tables."""
