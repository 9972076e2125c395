"""The course of one metric over a runner's visits: trend, phases, overlap, smoothed level."""
