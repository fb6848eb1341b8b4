"""The papers of the job: what is printed, handed over or sent on. Each is bytes made from values."""
