//! Files written by other programs and by hand, read as takes.
