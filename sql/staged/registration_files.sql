-- The motion in the registration object that a case names in place of matching points.
-- Grain: row_id, rows of cases that name one.
with latest as (
    select f.*
    from records.registration_files as f
    qualify row_number() over (partition by f.file order by f.reading_no desc) = 1
)

select
    c.row_id,
    c.case_key,
    coalesce(f.failure, 'missing') as failure,
    cast(f.count_motions as bigint) as count_motions,
    f.rotation_xx,
    f.rotation_xy,
    f.rotation_xz,
    f.rotation_yx,
    f.rotation_yy,
    f.rotation_yz,
    f.rotation_zx,
    f.rotation_zy,
    f.rotation_zz,
    f.shift_x_mm,
    f.shift_y_mm,
    f.shift_z_mm
from staged.cases as c
left join latest as f on c.registration_file = f.file
where c.registration_file is not null
