"""The virtual car: faults, state, circuit, true values, measuring and repairs."""
