"""An offline page in which the points, holes, studs and boxes that a job file names are picked on a scan."""
