//! Building on real files: what comes out equals the sources bit for bit where it must, is described fully, and nothing
//! half done or damaged ever carries a finished name.

mod fixture;
mod samples;
mod described;
mod refused;
mod checked;
mod readers;
mod shapes;
mod merged;
mod timeline;
