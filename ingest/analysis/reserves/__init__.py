"""How long do we last if the mains fails now: battery, cylinder, mixture, agent, cascade."""
