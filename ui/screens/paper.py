"""Not there yet."""
from workbench import frame
frame.note("soon")
