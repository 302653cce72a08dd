-- Three servo lines of Wren's controller, for the tests of the VCD reader.
-- Times in microseconds; every number here is checked in test_vcd.c.
--   hold      20 frames of 20 000 us: 1500 us high
--   sweep     20 frames of 20 000 us: 600 us high in frame 0, 100 us more a frame
--   inverted  open collector: 0 for 1000 us in frames 0 to 9, for 2000 us in
--             frames 10 to 19, else H (pulled up)
-- Frame k begins at 1000 + 20 000 k. One tick of the dump is 1 fs.
library ieee;
use ieee.std_logic_1164.all;

entity bench is
end entity;

architecture test of bench is
    signal hold, unused : std_logic := '0';
    signal inverted     : std_logic;
    signal port_c       : std_logic_vector(0 to 3) := "0000";
    signal busy         : boolean := false;
begin
    inverted <= 'H';
    process
    begin
        wait for 1000 us;
        for frame in 0 to 19 loop
            hold <= '1', '0' after 1500 us;
            port_c(2) <= '1', '0' after (600 + 100 * frame) * 1 us;
            busy <= true, false after 5000 us;
            wait for 20000 us;
        end loop;
        wait;
    end process;
    process
        variable width : time := 1000 us;
    begin
        inverted <= 'Z';
        wait for 1000 us;
        for frame in 0 to 19 loop
            if frame >= 10 then
                width := 2000 us;
            end if;
            inverted <= '0', 'Z' after width;
            wait for 20000 us;
        end loop;
        wait;
    end process;
end architecture;
