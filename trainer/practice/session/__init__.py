"""One take, from opening the source to the last event.

`take.py` runs it; `scheduling.py` decides which pass comes next and when it begins; `pausing.py`
pauses, resumes and goes back; `recovery.py` waits for a lost source; `pass_finding.py` finds the
passes of a recording; `saving.py` saves the sound.
"""

from trainer.practice.session.take import run_take

__all__ = ["run_take"]
