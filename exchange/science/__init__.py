"""Pure science: arrays and numbers in, arrays and numbers out; no framework, no clock."""
