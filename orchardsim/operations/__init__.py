"""The orchard as a working place: replacement trees, deliveries and crews, one SimPy world per trial."""
