"""Questions put to the model: which plan is better, what drives the risk. They run the simulation."""
