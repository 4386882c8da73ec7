"""Thresholds of judgement: none comes from a paper, each is explained to the flock's owner.

A threshold that is derived rather than chosen (what a test can attain at all) is computed
where it is needed and does not stand here.
"""

# Longest gap between two checks of a foot that still counts as watching it: in a longer one a
# sore could come and heal unseen.
GAP_LIMIT_DAYS = 60
