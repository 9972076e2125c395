"""Tables that may leave the building: how little they tell about anybody, and at what loss.

Quasi-identifiers are what somebody who knows a runner could know of them already. They are made
coarser along ladders (`hierarchies`, `ready_ladders`) until every combination occurs k times, at
the least possible loss (`lattice`); how likely the right runner is found is said by `risk`; small
counts are withheld in a way that totals do not give back (`tables`), and counts and means are
rounded so that two publications do not tell on who left in between (`rounding`).
"""
