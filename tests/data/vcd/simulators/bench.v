// Three servo lines of Wren's controller, for the tests of the VCD reader.
// Times in microseconds; every number here is checked in test_vcd.c.
//   hold      20 frames of 20 000 us: 1500 us high
//   sweep     20 frames of 20 000 us: 600 us high in frame 0, 100 us more a frame
//   inverted  low 1000 us in frames 0 to 9, low 2000 us in frames 10 to 19
// Frame k begins at 1000 + 20 000 k. The dump is off from 150 500, behind the
// pulses of frame 7, to 170 500, behind those of frame 8, which it lacks.
`timescale 1us / 1us

module servo_lines (output reg hold, output wire sweep, output tri1 inverted);
    reg [7:0] port;
    reg low;
    reg \lid.arm+ ;
    assign sweep = port[2];
    assign inverted = low ? 1'b0 : 1'bz;
    integer frame;
    initial begin
        hold = 1'b0;
        port = 8'b0;
        low = 1'b0;
        \lid.arm+ = 1'b0;
        #1000;
        for (frame = 0; frame < 20; frame = frame + 1) begin
            hold = 1'b1;
            port[2] = 1'b1;
            low = 1'b1;
            \lid.arm+ = 1'b1;
            fork
                #1500 hold = 1'b0;
                #(600 + 100 * frame) port[2] = 1'b0;
                #(frame < 10 ? 1000 : 2000) low = 1'b0;
                #900 \lid.arm+ = 1'b0;
            join
            #(20000 - (600 + 100 * frame > 1500
                       ? (600 + 100 * frame > (frame < 10 ? 1000 : 2000) ? 600 + 100 * frame : 2000)
                       : (frame < 10 ? 1500 : 2000)));
        end
    end
endmodule

module bench;
    wire hold, sweep;
    tri1 inverted;
    servo_lines lines (.hold(hold), .sweep(sweep), .inverted(inverted));
    real volts;
    event half;
    parameter FRAMES = 20;
    initial begin
        $dumpfile("verilog.vcd");
        $dumpvars;
        volts = 6.0;
        #150500 $dumpoff;
        volts = 5.75;
        -> half;
        #20000 $dumpon;
        #230500 $dumpall;
        #1000 $finish;
    end
endmodule
