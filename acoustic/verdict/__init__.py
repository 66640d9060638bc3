"""WHAT IT MEANS: expected lines against heard bins, judged for the drive as a whole.

Reading order: suspects, line_likelihood, clutter, sources, messages, joint_match, groups,
reference, decision.
"""
