"""Pages of a tester at work: upload, jobs, own tying."""
