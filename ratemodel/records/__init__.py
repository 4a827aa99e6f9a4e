"""Input files to frozen tables: the only room that opens what a user gives."""
