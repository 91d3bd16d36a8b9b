"""A user's own words made exact: units, scenario files, recorded profiles."""
