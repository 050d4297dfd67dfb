//! A wire between intake and broker that can be cut, as a pulled cable or a rebooting switch would.

use std::net::SocketAddr;

use intake::BrokerAddress;
use tokio::io::copy_bidirectional;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;

/// Forwards connections to a broker until they are cut.
pub(crate) struct Proxy {
    address: SocketAddr,
    cuts: watch::Sender<u64>,
}

impl Proxy {
    pub(crate) async fn to(port: u16) -> Proxy {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        let (cuts, watch_cuts) = watch::channel(0);
        tokio::spawn(async move {
            while let Ok((mut inside, _)) = listener.accept().await {
                let mut cut = watch_cuts.clone();
                cut.mark_unchanged();
                tokio::spawn(async move {
                    let Ok(mut outside) = TcpStream::connect(("127.0.0.1", port)).await else { return };
                    tokio::select! {
                        _ = copy_bidirectional(&mut inside, &mut outside) => {}
                        _ = cut.changed() => {}
                    }
                });
            }
        });
        Proxy { address, cuts }
    }

    pub(crate) fn address(&self) -> BrokerAddress {
        BrokerAddress::new(self.address.ip().to_string(), self.address.port())
    }

    /// Ends every connection there is, wherever it stands.
    pub(crate) fn cut(&self) {
        self.cuts.send_modify(|cuts| *cuts += 1);
    }
}
