"""The invented station: a seeded generator for the demo data and for the benchmark exports.

Written from the trade's failure signatures alone; it imports nothing of sigaudit, so that what it
plants and what the checks find are two independent statements.
"""
