"""What every other part stands on: errors, units, uncertain numbers, the kernel decorator."""
