from django.db import migrations, models

from rigs.held_rows import AddUniqueConcurrently, HoldNewRows
from rigs.kept_rows import HoldNewRowsBySQL, KeepRows, RefuseRows, UniqueTogether

SPOOL = "~ '^[0-9]+( [0-9a-f]{8})?$'"
STATES = {
    'received': ['normalised', 'held', 'withdrawn'],
    'normalised': ['pooled', 'held', 'rejected', 'withdrawn'],
    'pooled': ['held', 'rejected', 'withdrawn'],
    'held': ['released', 'rejected', 'withdrawn'],
    'released': ['held', 'rejected', 'withdrawn'],
    'rejected': ['released', 'withdrawn'],
}


class Migration(migrations.Migration):
    """Each statement by itself, so that no two tables are locked at once."""

    atomic = False

    dependencies = [
        ('results', '0026_shapes_of_series_of_readings'),
        ('rigs', '0010_all_rows_are_finite'),
    ]

    operations = [
        HoldNewRows(
            model_name='normalisedset',
            constraint=models.CheckConstraint(condition=models.Q(('mean_N__gte', -1e+300), ('mean_N__lte', 1e+300), ('cv__gte', -1e+300), ('cv__lte', 1e+300), ('baseline_mean_N__gte', -1e+300), ('baseline_mean_N__lte', 1e+300), ('baseline_cv__gte', -1e+300), ('baseline_cv__lte', 1e+300), ('log_ratio__gte', -1e+300), ('log_ratio__lte', 1e+300), ('own_variance__gte', -1e+300), ('own_variance__lte', 1e+300), ('shared_variance__gte', -1e+300), ('shared_variance__lte', 1e+300), ('efficiency__gte', -1e+300), ('efficiency__lte', 1e+300), ('interval_low__gte', -1e+300), ('interval_low__lte', 1e+300), ('interval_high__gte', -1e+300), ('interval_high__lte', 1e+300), ('u_offset_log__gte', -1e+300), ('u_offset_log__lte', 1e+300), ('baseline_mean_N__gt', 0), ('efficiency__gt', 0), ('mean_N__gt', 0)), name='normalised_set_is_finite'),
        ),
        HoldNewRows(
            model_name='normalisedset',
            constraint=models.CheckConstraint(condition=models.Q(('counted__lte', models.F('pulls')), ('own_variance__gte', 0)), name='normalised_set_counts_what_was_pulled'),
        ),
        HoldNewRows(
            model_name='poolversion',
            constraint=models.CheckConstraint(condition=models.Q(('efficiency__gte', -1e+300), ('efficiency__lte', 1e+300), ('interval_low__gte', -1e+300), ('interval_low__lte', 1e+300), ('interval_high__gte', -1e+300), ('interval_high__lte', 1e+300), ('prediction_low__gte', -1e+300), ('prediction_low__lte', 1e+300), ('prediction_high__gte', -1e+300), ('prediction_high__lte', 1e+300), ('i2__gte', -1e+300), ('i2__lte', 1e+300), ('cv_join__gte', -1e+300), ('cv_join__lte', 1e+300), ('cv_baseline__gte', -1e+300), ('cv_baseline__lte', 1e+300), ('held_by_nine__gte', -1e+300), ('held_by_nine__lte', 1e+300), ('time_to_tie_s__gte', -1e+300), ('time_to_tie_s__lte', 1e+300), ('bulk__gte', -1e+300), ('bulk__lte', 1e+300)), name='pool_version_is_finite'),
        ),
        HoldNewRows(
            model_name='poolversion',
            constraint=models.CheckConstraint(condition=models.Q(('interval_low__lte', models.F('interval_high')), ('number__gte', 1), ('prediction_low__lte', models.F('prediction_high')), ('sessions__lte', models.F('sets')), ('testers__lte', models.F('sets'))), name='pool_version_is_in_order'),
        ),
        HoldNewRows(
            model_name='statechange',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('from_state', 'received'), ('to_state__in', ['held', 'normalised', 'withdrawn'])), models.Q(('from_state', 'normalised'), ('to_state__in', ['held', 'pooled', 'rejected', 'withdrawn'])), models.Q(('from_state', 'pooled'), ('to_state__in', ['held', 'rejected', 'withdrawn'])), models.Q(('from_state', 'held'), ('to_state__in', ['rejected', 'released', 'withdrawn'])), models.Q(('from_state', 'released'), ('to_state__in', ['held', 'rejected', 'withdrawn'])), models.Q(('from_state', 'rejected'), ('to_state__in', ['released', 'withdrawn'])), models.Q(('from_state__in', ['held', 'rejected']), ('to_state', models.F('from_state'))), _connector='OR'), name='state_change_is_a_step'),
        ),        AddUniqueConcurrently(
            model_name='poolmembership',
            constraint=models.UniqueConstraint(condition=models.Q(('until__isnull', True)), fields=('pull_set',), name='set_counts_in_one_pool'),
        ),
        HoldNewRowsBySQL(
            'session',
            'session_day_has_been',
            "CHECK (pulled_on <= (received_at AT TIME ZONE 'UTC')::date + 1 "
            "AND received_at < '2200-01-01')",
        ),
        HoldNewRowsBySQL(
            'checkresult',
            'check_result_is_a_number',
            "CHECK (figure <> 'NaN' AND threshold <> 'NaN' AND p BETWEEN 0 AND 1 "
            'AND adjusted_p BETWEEN 0 AND 1)',
        ),
        HoldNewRowsBySQL(
            'rigscatter',
            'rig_scatter_is_finite',
            'CHECK (factor BETWEEN 0 AND 1e300 AND degrees_of_freedom BETWEEN 0 AND 1e300)',
        ),
        HoldNewRowsBySQL(
            'seriesshape',
            'series_shape_is_finite',
            'CHECK (lowest BETWEEN -1e300 AND 1e300 AND highest BETWEEN -1e300 AND 1e300 '
            'AND middle BETWEEN -1e300 AND 1e300)',
        ),
        UniqueTogether('poolversion', 'pool_version_of_its_pool', ['id', 'pool_id']),
        HoldNewRowsBySQL(
            'pool',
            'pool_shows_a_version_of_its_own',
            'FOREIGN KEY (current_id, id) REFERENCES results_poolversion (id, pool_id) '
            'DEFERRABLE INITIALLY DEFERRED',
        ),
        HoldNewRowsBySQL(
            'poolmembership',
            'membership_begins_in_its_own_pool',
            'FOREIGN KEY (since_id, pool_id) REFERENCES results_poolversion (id, pool_id) '
            'DEFERRABLE INITIALLY DEFERRED',
        ),
        HoldNewRowsBySQL(
            'poolmembership',
            'membership_ends_in_its_own_pool',
            'FOREIGN KEY (until_id, pool_id) REFERENCES results_poolversion (id, pool_id) '
            'DEFERRABLE INITIALLY DEFERRED',
        ),
        KeepRows('upload', blanked={'body': "= ''", 'idempotency_key': 'IS NULL'}),
        KeepRows(
            'session',
            may_change=['standing_reason'],
            blanked={'note': "= ''"},
            steps={
                'standing': {'current': ['replaced', 'withdrawn'], 'replaced': ['withdrawn']},
            },
        ),
        KeepRows('baseline', blanked={'spool': SPOOL}),
        KeepRows(
            'pullset',
            may_change=['not_normalised'],
            blanked={
                'label': "~ '^set [0-9]+( [0-9a-f]{8})?$'",
                'main_spool': SPOOL,
                'leader_spool': SPOOL,
                'tyer': "= 'somebody else'",
                'note': "= ''",
            },
            steps={'state': STATES},
        ),
        KeepRows('pull', blanked={'place': "= ''", 'note': "= ''"}),
        KeepRows('statechange', blanked={'reason': "= ''"}),
        KeepRows('message', blanked={'text': "= ''"}),
        KeepRows('erasure'),
        KeepRows('screening'),
        KeepRows('checkresult', blanked={'applies_to': "= ''", 'sentence': "= ''"}),
        KeepRows('notice', may_change=['read_at'], blanked={'text': "= ''"}),
        KeepRows(
            'report',
            may_change=['reporter_key', 'closed_at', 'closed_by_id', 'outcome'],
            blanked={'text': "= ''"},
        ),
        KeepRows(
            'pool',
            may_change=['current_id', 'failures', 'excused', 'attempted_at', 'failed_at'],
        ),
        KeepRows(
            'poolversion',
            may_change=['forest_light', 'forest_dark', 'attempts', 'excused', 'woken_at'],
        ),
        KeepRows(
            'poolmembership',
            blanked={'until_id': 'IS NOT NULL AND OLD.until_id IS NULL'},
        ),
        KeepRows('release', once="OLD.state = 'made'"),
        KeepRows('releasepart'),
        RefuseRows(
            'session',
            'session_is_on_a_rig_of_its_own',
            columns=['contributor_id', 'revision_id', 'replaces_id'],
            where="""NOT EXISTS (
        SELECT 1 FROM rigs_rigrevision revision JOIN rigs_rig rig ON rig.id = revision.rig_id
        WHERE revision.id = NEW.revision_id AND rig.owner_id = NEW.contributor_id
    ) OR NEW.replaces_id IS NOT NULL AND NOT EXISTS (
        SELECT 1 FROM results_session earlier WHERE earlier.id = NEW.replaces_id
        AND earlier.contributor_id = NEW.contributor_id AND earlier.version + 1 = NEW.version
    )""",
        ),
        RefuseRows(
            'upload',
            'upload_is_what_was_sent',
            columns=['contributor_id', 'session_id', 'body', 'sha256'],
            where="""NEW.body <> '' AND NEW.sha256 <> encode(sha256(NEW.body), 'hex')
    OR NOT EXISTS (
        SELECT 1 FROM results_session session
        WHERE session.id = NEW.session_id AND session.contributor_id = NEW.contributor_id
    )""",
        ),
        RefuseRows(
            'normalisedset',
            'normalised_set_is_of_one_rig',
            columns=['baseline_id', 'pull_set_id', 'calibration_id'],
            where="""NOT EXISTS (
        SELECT 1 FROM results_pullset tied
        JOIN results_session session ON session.id = tied.session_id
        JOIN results_session straight ON straight.revision_id = session.revision_id
        JOIN results_baseline baseline ON baseline.session_id = straight.id
        WHERE tied.id = NEW.pull_set_id AND baseline.id = NEW.baseline_id
        AND (NEW.calibration_id IS NULL OR EXISTS (
            SELECT 1 FROM rigs_calibration calibration WHERE calibration.id = NEW.calibration_id
            AND calibration.revision_id = session.revision_id
        ))
    )""",
        ),
    ]
