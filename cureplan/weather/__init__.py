"""Layer 2: outdoor air, hour by hour, from files and open data, each row with its source."""
