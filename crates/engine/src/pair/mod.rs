//! Takes in, joint takes out: which takes of several units ran together.
