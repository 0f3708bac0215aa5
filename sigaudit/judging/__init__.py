"""From what the store holds to findings in the store. Reads no export, draws no page."""
