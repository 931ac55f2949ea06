"""Checks for what can't be right in a submission: each gives evidence, none decides.

A check compares a figure with a threshold and says in one sentence what it saw. Where it has a p
value, `judge` weighs all those of one submission together (Benjamini & Hochberg 1995); the others
stand by themselves. The words follow ISO 5725-2: what passes 5 percent is marked and stays, what
passes 1 percent is held until a person has looked. A check whose honest reasons are common (weak
or uneven tying, reading by eye) may mark and never hold.
"""
