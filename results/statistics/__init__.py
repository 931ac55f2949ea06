"""What pulls mean: strengths, efficiencies, pools, comparison, screening; arrays to figures."""
