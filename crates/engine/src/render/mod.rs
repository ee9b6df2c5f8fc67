//! An alignment and the sources in, samples on the lead's clock out: a function of time without state.
