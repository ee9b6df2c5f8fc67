//! Samples in, files out: temporary name, flush, read back, rename.
