-- Angle between two axes known by their leans in both views: axis = (tan frontal, tan sagittal, 1).
create or replace temp macro film_angle_deg(frontal_1, sagittal_1, frontal_2, sagittal_2) as
angle_between_deg(
    tan(radians(frontal_1)), tan(radians(sagittal_1)), 1,
    tan(radians(frontal_2)), tan(radians(sagittal_2)), 1
);
