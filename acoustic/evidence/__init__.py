"""WHAT THE SOUND SHOWS: order spectrum, floor, tones.

Reading order: findings, audibility, noise_floor, angle, order_spectrum, fixed_tones, comb, tones.
"""
