//! Finished files in, findings out: the alignment measured again on the result.
