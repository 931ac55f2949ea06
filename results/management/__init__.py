"""What an operator runs by hand, as commands of manage.py."""
