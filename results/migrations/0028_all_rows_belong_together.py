from django.db import migrations

from rigs.held_rows import HoldAllRows


class Migration(migrations.Migration):
    """Each check by itself: validating reads a table, and locks it against nothing but DDL."""

    atomic = False

    dependencies = [
        ('results', '0027_history_is_kept'),
    ]

    operations = [
        HoldAllRows('normalisedset', 'normalised_set_is_finite'),
        HoldAllRows('normalisedset', 'normalised_set_counts_what_was_pulled'),
        HoldAllRows('poolversion', 'pool_version_is_finite'),
        HoldAllRows('poolversion', 'pool_version_is_in_order'),
        HoldAllRows('statechange', 'state_change_is_a_step'),
        HoldAllRows('session', 'session_day_has_been'),
        HoldAllRows('checkresult', 'check_result_is_a_number'),
        HoldAllRows('rigscatter', 'rig_scatter_is_finite'),
        HoldAllRows('seriesshape', 'series_shape_is_finite'),
        HoldAllRows('pool', 'pool_shows_a_version_of_its_own'),
        HoldAllRows('poolmembership', 'membership_begins_in_its_own_pool'),
        HoldAllRows('poolmembership', 'membership_ends_in_its_own_pool'),
    ]
