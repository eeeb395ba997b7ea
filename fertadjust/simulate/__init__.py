"""A crop-nitrogen model that runs the same rules in a closed loop. Pure: no files, no clock, no prints."""
