"""Everything that runs: surface, air, camera, photo measurement, comparison, command line."""
