"""`manage.py verify`: that a whole store is what was sent, decided and computed."""
