"""The Bayesian network of one car under one visit's conditions, its tables computed from the physics."""
