"""Post-event quality analytics for races timed with passive tags and mats."""
