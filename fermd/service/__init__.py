"""The daemon: the loop, the calendar, start and stop, the watchdog."""
