"""Pure figures: small frames in, figure dictionaries out."""
