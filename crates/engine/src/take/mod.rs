//! Files in, takes out: what is on a card, which files belong together, what the channels are called.
