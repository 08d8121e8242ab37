"""The power-quality study: from half cycles to the tables of a paper, by the standards' arithmetic."""
