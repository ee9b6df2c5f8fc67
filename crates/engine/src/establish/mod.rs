//! Joint takes in, an alignment out: which basis each follower's place rests on and what may be claimed.
