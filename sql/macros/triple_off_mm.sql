-- How far three figures of one implant are from being possible together; below 0 or 0 where they are.
-- An axis of length L turned by an angle moves its end by m = 2 L sin(angle / 2) against its head, so the
-- three sides entry, apex and m make a triangle: |apex - entry| <= m <= apex + entry.
create or replace temp macro triple_off_mm(entry_mm, apex_mm, angle_deg, length_mm) as
greatest(
    abs(apex_mm - entry_mm) - 2 * length_mm * sin(radians(angle_deg) / 2),
    2 * length_mm * sin(radians(angle_deg) / 2) - (apex_mm + entry_mm)
);
