"""Pure kernels: arrays in, arrays out; no files, no logging.  Metres and radians, z up."""
