"""Looking back at what was played and ahead to what is forecast.

Comes in: the state only; everything here is computed and can be computed again.
Begin with: `reports.ReportService`, then `progress`.
"""
