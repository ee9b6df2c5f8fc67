//! The sync report held to what its sources say.
