-- A row's key with its implant: two tooth numbers on one side are two implants, not one written twice.
create or replace temp macro key_of_place(row_key, implant_key) as
concat_ws('|', plain_key(row_key), implant_key);
