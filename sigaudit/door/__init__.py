"""The commands: options in, one call, result out. Heavy libraries are imported inside them."""
