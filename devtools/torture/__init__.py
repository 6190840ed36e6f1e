"""Mutated inputs, killed processes, lost sound: nothing may be lost, and nothing may hang.

    make torture MINUTES=10
    python -m devtools.torture --minutes 10 --seed 3 --only journals kills
    python -m devtools.torture --only drills --seed 3 --trial 1234
    python -m devtools.torture --reach --tally tally.json --minutes 60
    python -m devtools.torture live --minutes 60

Each kind of trial runs in a process of its own, for its share of the minutes. A trial passes if it
ends within `HANG_S` with a result or one of the trainer's own errors. Its number and the seed
repeat it. A tally adds up the trials of several runs, and `--reach` stops each kind at the number
that a version should have passed. The exit code is 1 if any failed, or took more than `MAX_MB` of
memory.
"""
