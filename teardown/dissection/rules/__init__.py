"""Rules of the bench, without tables: places, sample codes, tiers of numbers, cautions, time, cards."""
