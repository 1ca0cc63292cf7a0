"""3MF packages: their XML within bounds, the facets that they place, and green parts written."""
