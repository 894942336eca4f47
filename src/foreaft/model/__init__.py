"""What people describe: car, adjuster, driver, conditions, zones; frozen and validated."""
