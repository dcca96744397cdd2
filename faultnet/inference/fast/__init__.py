"""What makes inference quick: tables laid out for the configurations that occur, schedules, query caches."""
