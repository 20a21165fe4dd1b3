//! Procession as a plug-in.
