"""WHAT THE SOUND SHOWS: order spectrum, floor, tones.

Reading order: findings, audibility, noise_floor, angle, engine_bins, order_spectrum,
stretch_spectrum, envelope, family_levels, fixed_tones, comb, tones, swelling, short_time,
weighing, chirps, engine_phase, impacts, impact_locking, impact_findings, run_down, squeal,
hiss, uneven_firing, flutter, noises, isolate, loudness.
"""
